#!/usr/bin/env python3
"""Prints the job sheets of every class, package and crew of 1 to 4 as PDF and counts their pages.

One page for each hour on site that is begun is allowed; ends with 1 where a sheet takes more. It needs a Chromium or
Chrome on the path, and takes about five minutes: python3 tests/bench/sheet_pages.py [mild|hot] [folder to keep the sheets in]
"""

import collections
import math
import os
import re
import shutil
import subprocess
import sys
import tempfile

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
CLASSES = ["city_car", "sedan", "estate", "suv", "pickup", "large_van", "motorhome", "roadster_softtop"]
PACKAGES = [f"P{n}" for n in range(1, 10)]
BROWSERS = ["chromium", "chromium-browser", "google-chrome"]


def built():
    """The example that makes a sheet, in the profile and place that cargo uses."""
    build = ["cargo", "build", "--locked", "--workspace", "--example", "job_sheet", "--message-format=json"]
    said = subprocess.run(build, cwd=ROOT, check=True, capture_output=True, text=True).stdout
    return re.findall(r'"executable":"([^"]*/job_sheet)"', said)[-1]


def printed(browser, html, folder):
    """Pages of the sheet as PDF."""
    page, pdf = os.path.join(folder, "sheet.html"), os.path.join(folder, "sheet.pdf")
    with open(page, "w") as file:
        file.write(html)
    flags = ["--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer"]
    subprocess.run([browser, *flags, f"--print-to-pdf={pdf}", page], check=True, capture_output=True)
    with open(pdf, "rb") as file:
        return len(re.findall(rb"/Type\s*/Page\b", file.read()))


def main():
    weather = sys.argv[1] if len(sys.argv) > 1 else "mild"
    kept = sys.argv[2] if len(sys.argv) > 2 else None
    browser = next(filter(None, map(shutil.which, BROWSERS)), None) or sys.exit("no Chromium or Chrome on the path")
    example, types, over, count = built(), collections.Counter(), 0, 0
    with tempfile.TemporaryDirectory() as folder:
        for vehicle in CLASSES:
            for package in PACKAGES:
                if package == "P7" and vehicle != "roadster_softtop":
                    continue
                for crew in "1234":
                    words = [example, package, vehicle, crew, "html", weather]
                    html = subprocess.run(words, check=True, capture_output=True, text=True).stdout
                    minutes = int(re.search(r"(\d+)\s*min on site", html)[1])
                    plain = re.search(r"font: ([\d.]+)pt", html)[1]
                    pages, most = printed(browser, html, folder), max(1, math.ceil(minutes / 60))
                    types[float(plain)] += 1
                    count, over = count + 1, over + (pages > most)
                    if pages > most:
                        print(f"{vehicle} {package} by {crew}: {pages} pages for {minutes} min in {plain} pt")
                    if kept:
                        shutil.copy(os.path.join(folder, "sheet.pdf"), f"{kept}/{package}_{vehicle}_{crew}.pdf")
    print(f"{count} sheets, {weather} day: {over} with more than a page for each hour on site")
    for plain, sheets in sorted(types.items(), reverse=True):
        print(f"{sheets:>5} in {plain:g} pt, step names and amounts in {max(13.0, 1.3 * plain):.1f} pt")
    sys.exit(1 if over else 0)


main()
