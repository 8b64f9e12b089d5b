//! Pictures of figures as SVG: black on white, told apart by shape and pattern and never by colour, with a title and a
//! description for those who do not see them.

mod axis;
pub(crate) mod canvas;
mod control;
mod funnel;
mod load;

pub use control::{ewma_svg, individuals_svg};
pub use funnel::funnel_svg;
pub use load::load_svg;
