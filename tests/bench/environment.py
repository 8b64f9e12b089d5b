"""The virtual environment of a script in this folder: its pinned packages and no others, made on first use."""

import os
import pathlib
import subprocess
import sys

ROOT = pathlib.Path(__file__).resolve().parents[2]


def enter(name, pinned):
    """Starts the running script again inside target/NAME, unless it runs there already."""
    home = ROOT / "target" / name
    if pathlib.Path(sys.prefix) == home:
        return
    python, stamp = home / "bin" / "python", home / "pinned"
    if not stamp.exists() or stamp.read_text() != "\n".join(pinned):
        subprocess.run([sys.executable, "-m", "venv", "--clear", home], check=True)
        subprocess.run([python, "-m", "pip", "install", "--quiet", *pinned], check=True)
        stamp.write_text("\n".join(pinned))
    os.execv(python, [str(python), *sys.argv])
