//! The few shapes that pictures are made of.

use super::axis::Axis;
use crate::markup::escape;
use std::fmt::Write;

pub(crate) const WIDTH: f64 = 720.0;
/// Where a plot begins and ends from left to right; labels of limits stand to its right.
pub(crate) const LEFT: f64 = 64.0;
pub(crate) const RIGHT: f64 = 620.0;

/// How a line is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Stroke {
    Solid,
    Thin,
    Dashed,
    Dotted,
}

/// How a point is drawn; each kind has its own shape.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Mark {
    /// A full circle: nothing special.
    Plain,
    /// An empty circle: too little behind it.
    Hollow,
    /// A full diamond with a ring: outside the limits.
    Outside,
}

pub(crate) enum Anchor {
    Start,
    Middle,
    End,
}

pub(crate) struct Canvas {
    body: String,
    height: f64,
}

impl Canvas {
    pub fn new(height: f64) -> Canvas {
        Canvas { body: String::new(), height }
    }

    /// The picture; `id` makes its labels unique in a page that holds several.
    pub fn finish(self, id: &str, title: &str, description: &str) -> String {
        let (id, title, description) = (escape(id), escape(title), escape(description));
        let height = self.height;
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {height}\" width=\"{WIDTH}\" \
             height=\"{height}\" role=\"img\" aria-labelledby=\"{id}-title {id}-desc\" font-family=\"sans-serif\" \
             font-size=\"13\">\n<title id=\"{id}-title\">{title}</title>\n<desc id=\"{id}-desc\">{description}</desc>\n\
             <defs><pattern id=\"{id}-hatch\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\" \
             patternTransform=\"rotate(45)\"><line x1=\"0\" y1=\"0\" x2=\"0\" y2=\"6\" stroke=\"#000\" \
             stroke-width=\"1.6\"/></pattern></defs>\n<rect width=\"{WIDTH}\" height=\"{height}\" fill=\"#fff\"/>\n{}</svg>\n",
            self.body
        )
    }

    pub fn line(&mut self, (x1, y1): (f64, f64), (x2, y2): (f64, f64), stroke: Stroke) {
        let style = style(stroke);
        let _ = writeln!(
            self.body,
            "<line x1=\"{x1:.1}\" y1=\"{y1:.1}\" x2=\"{x2:.1}\" y2=\"{y2:.1}\" stroke=\"#000\" {style}/>"
        );
    }

    pub fn path(&mut self, points: impl Iterator<Item = (f64, f64)>, stroke: Stroke) {
        let points: Vec<String> = points.map(|(x, y)| format!("{x:.1},{y:.1}")).collect();
        let style = style(stroke);
        let _ = writeln!(
            self.body,
            "<polyline points=\"{}\" fill=\"none\" stroke=\"#000\" {style}/>",
            points.join(" ")
        );
    }

    pub fn mark(&mut self, (x, y): (f64, f64), mark: Mark) {
        let _ = match mark {
            Mark::Plain => writeln!(self.body, "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"3.2\"/>"),
            Mark::Hollow => writeln!(
                self.body,
                "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"3.4\" fill=\"#fff\" stroke=\"#000\" stroke-width=\"1.2\"/>"
            ),
            Mark::Outside => writeln!(
                self.body,
                "<path d=\"M{x:.1} {:.1}l5 5l-5 5l-5-5z\"/><circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"8\" \
                 fill=\"none\" stroke=\"#000\" stroke-width=\"1.2\"/>",
                y - 5.0
            ),
        };
    }

    /// A rectangle: hatched with the picture's own pattern, or empty.
    pub fn bar(&mut self, (x, y): (f64, f64), (width, height): (f64, f64), hatched: Option<&str>) {
        let fill = hatched.map_or_else(|| "#fff".to_owned(), |id| format!("url(#{}-hatch)", escape(id)));
        let _ = writeln!(
            self.body,
            "<rect x=\"{x:.1}\" y=\"{y:.1}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"{fill}\" stroke=\"#000\"/>",
            width.max(0.0),
            height.max(0.0)
        );
    }

    /// A full black rectangle.
    pub fn block(&mut self, (x, y): (f64, f64), (width, height): (f64, f64)) {
        let (width, height) = (width.max(0.0), height.max(0.0));
        let _ = writeln!(
            self.body,
            "<rect x=\"{x:.1}\" y=\"{y:.1}\" width=\"{width:.1}\" height=\"{height:.1}\"/>"
        );
    }

    pub fn text(&mut self, (x, y): (f64, f64), anchor: Anchor, text: &str) {
        let anchor = match anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        // A white edge keeps words readable where they cross a line.
        let _ = writeln!(
            self.body,
            "<text x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\" stroke=\"#fff\" stroke-width=\"3\" \
             paint-order=\"stroke\">{}</text>",
            escape(text)
        );
    }

    pub fn heading(&mut self, text: &str) {
        let _ = writeln!(self.body, "<text x=\"8\" y=\"20\" font-weight=\"bold\">{}</text>", escape(text));
    }

    /// The left axis with round numbers and thin lines across.
    pub fn scale(&mut self, axis: &Axis, unit: &str, top: f64, bottom: f64) {
        for (tick, written) in axis.ticks(4) {
            let y = axis.at(tick);
            self.line((LEFT - 4.0, y), (LEFT, y), Stroke::Solid);
            self.text((LEFT - 7.0, y + 4.5), Anchor::End, &written);
        }
        self.line((LEFT, top), (LEFT, bottom), Stroke::Solid);
        self.line((LEFT, bottom), (RIGHT, bottom), Stroke::Solid);
        self.text((8.0, top - 7.0), Anchor::Start, if unit == "1" { "ratio" } else { unit });
    }

    /// A limit across the plot with its name and number at the right.
    pub fn limit(&mut self, y: f64, label: &str, stroke: Stroke) {
        self.line((LEFT, y), (RIGHT, y), stroke);
        self.text((RIGHT + 6.0, y + 4.5), Anchor::Start, label);
    }
}

fn style(stroke: Stroke) -> &'static str {
    match stroke {
        Stroke::Solid => "stroke-width=\"1.4\"",
        Stroke::Thin => "stroke-width=\"0.7\"",
        Stroke::Dashed => "stroke-width=\"1.4\" stroke-dasharray=\"8 4\"",
        Stroke::Dotted => "stroke-width=\"1.4\" stroke-dasharray=\"2 3\"",
    }
}
