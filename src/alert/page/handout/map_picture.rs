//! A drawing painted as pixels, with the fonts in the program and no others.
//!
//! `usvg` reads it, `tiny-skia` paints it in software, on one thread and without a clock, so that the same drawing gives the
//! same pixels. What our drawings do not have, such as gradients, is refused and not left out.

use std::sync::Arc;

use tiny_skia::{
    Color, FillRule, FilterQuality, Paint, Pattern, Pixmap, PixmapMut, PixmapPaint, SpreadMode,
    Transform,
};
use usvg::fontdb::Database;
use usvg::{Group, Node, Options, PaintOrder, Path, Tree};

use super::png::Pixels;
use crate::shared::fonts::{FAMILY, Weight};
use scouting::failure::{Cause, Failure, Kind};

/// The fonts, read once.
pub(super) struct Pictures {
    options: Options<'static>,
}

impl Pictures {
    /// With the fonts in the program.
    pub(super) fn new() -> Pictures {
        let mut fonts = Database::new();
        for weight in [Weight::Regular, Weight::Bold] {
            fonts.load_font_data(weight.bytes().to_vec());
        }
        fonts.set_sans_serif_family(FAMILY);
        Pictures {
            options: Options {
                font_family: FAMILY.to_owned(),
                fontdb: Arc::new(fonts),
                ..Options::default()
            },
        }
    }

    /// A drawing on white, so many pixels to each of its units.
    ///
    /// # Errors
    /// A [`Failure`] if it is no drawing, or has what is not painted.
    pub(super) fn painted(&self, svg: &str, scale: f32) -> Result<Pixels, Failure> {
        let cannot = |cause: Cause| Failure::because(Kind::Publish, "cannot draw the map", cause);
        let tree = Tree::from_str(svg, &self.options).map_err(|error| cannot(error.into()))?;
        let size = tree.size();
        let [width, height] =
            [size.width(), size.height()].map(|side| (side * scale).ceil() as u32);
        let mut picture = Pixmap::new(width, height)
            .ok_or_else(|| cannot(format!("no room for {width} by {height} pixels").into()))?;
        picture.fill(Color::WHITE);
        let scaled = Transform::from_scale(scale, scale);
        paint_group(tree.root(), scaled, &mut picture.as_mut()).map_err(cannot)?;
        let pixels = picture.pixels().iter();
        Ok(Pixels {
            width,
            height,
            bytes: pixels
                .flat_map(|pixel| [pixel.red(), pixel.green(), pixel.blue()])
                .collect(),
        })
    }
}

fn paint_group(group: &Group, at: Transform, on: &mut PixmapMut) -> Result<(), Cause> {
    if group.mask().is_some() || !group.filters().is_empty() {
        return Err("it has a mask or a filter, which are not painted".into());
    }
    let at = at.pre_concat(group.transform());
    let opacity = group.opacity().get();
    if opacity >= 1.0 {
        return paint_nodes(group, at, on);
    }
    let mut layer = Pixmap::new(on.width(), on.height()).ok_or("no room for a layer")?;
    paint_nodes(group, at, &mut layer.as_mut())?;
    let paint = PixmapPaint {
        opacity,
        ..PixmapPaint::default()
    };
    on.draw_pixmap(0, 0, layer.as_ref(), &paint, Transform::identity(), None);
    Ok(())
}

fn paint_nodes(group: &Group, at: Transform, on: &mut PixmapMut) -> Result<(), Cause> {
    for node in group.children() {
        match node {
            Node::Group(group) => paint_group(group, at, on)?,
            Node::Path(path) => paint_path(path, at, on)?,
            Node::Text(text) => paint_group(text.flattened(), at, on)?,
            Node::Image(_) => return Err("it has an image, which is not painted".into()),
        }
    }
    Ok(())
}

fn paint_path(path: &Path, at: Transform, on: &mut PixmapMut) -> Result<(), Cause> {
    if !path.is_visible() {
        return Ok(());
    }
    match path.paint_order() {
        PaintOrder::FillAndStroke => {
            fill(path, at, on)?;
            stroke(path, at, on)
        }
        PaintOrder::StrokeAndFill => {
            stroke(path, at, on)?;
            fill(path, at, on)
        }
    }
}

fn fill(path: &Path, at: Transform, on: &mut PixmapMut) -> Result<(), Cause> {
    let Some(fill) = path.fill() else {
        return Ok(());
    };
    let rule = match fill.rule() {
        usvg::FillRule::NonZero => FillRule::Winding,
        usvg::FillRule::EvenOdd => FillRule::EvenOdd,
    };
    with_paint(fill.paint(), fill.opacity(), at, |paint| {
        on.fill_path(path.data(), paint, rule, at, None);
    })
}

fn stroke(path: &Path, at: Transform, on: &mut PixmapMut) -> Result<(), Cause> {
    let Some(stroke) = path.stroke() else {
        return Ok(());
    };
    with_paint(stroke.paint(), stroke.opacity(), at, |paint| {
        on.stroke_path(path.data(), paint, &stroke.to_tiny_skia(), at, None);
    })
}

/// Paints with a color, or with a pattern that is painted first.
fn with_paint(
    paint: &usvg::Paint,
    opacity: usvg::Opacity,
    at: Transform,
    painting: impl FnOnce(&Paint),
) -> Result<(), Cause> {
    let mut with = Paint {
        anti_alias: true,
        ..Paint::default()
    };
    match paint {
        usvg::Paint::Color(color) => {
            with.set_color_rgba8(color.red, color.green, color.blue, opacity.to_u8());
            painting(&with);
        }
        usvg::Paint::Pattern(pattern) => {
            let (tile, placed) = tile_of(pattern, at)?;
            with.shader = Pattern::new(
                tile.as_ref(),
                SpreadMode::Repeat,
                FilterQuality::Bicubic,
                opacity.get(),
                placed,
            );
            painting(&with);
        }
        _ => return Err("it has a gradient, which is not painted".into()),
    }
    Ok(())
}

/// A tile of a pattern at the size of the picture, and where it is.
fn tile_of(pattern: &usvg::Pattern, at: Transform) -> Result<(Pixmap, Transform), Cause> {
    let (wide, high) = at.pre_concat(pattern.transform()).get_scale();
    let frame = pattern.rect();
    let [width, height] =
        [frame.width() * wide, frame.height() * high].map(|side| side.round().max(1.0) as u32);
    let mut tile = Pixmap::new(width, height).ok_or("no room for a pattern")?;
    // A tile has whole pixels.
    let (wide, high) = (width as f32 / frame.width(), height as f32 / frame.height());
    let scaled = Transform::from_scale(wide, high);
    paint_group(pattern.root(), scaled, &mut tile.as_mut())?;
    let placed = pattern
        .transform()
        .pre_translate(frame.x(), frame.y())
        .pre_scale(1.0 / wide, 1.0 / high);
    Ok((tile, placed))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pixel(svg: &str, scale: f32, [x, y]: [u32; 2]) -> [u8; 3] {
        let pixels = Pictures::new().painted(svg, scale).expect("painted");
        let place = (y * pixels.width + x) as usize * 3;
        [0, 1, 2].map(|color| pixels.bytes[place + color])
    }

    #[test]
    fn colors_patterns_and_nested_drawings_are_painted_in_their_place() {
        let svg = r##"<svg xmlns="http://www.w3.org/2000/svg" width="40" height="20"><rect width="10" height="20" fill="#fe8203"/>
            <svg x="20" y="0" width="20" height="20" viewBox="0 0 2 2"><defs><pattern id="p" width="1" height="1" patternUnits="userSpaceOnUse">
            <rect width="1" height="1" fill="#0000ff"/></pattern></defs><path d="M0 0h2v2h-2z" fill="url(#p)"/></svg></svg>"##;
        for scale in [1.0, 2.0] {
            let at = |x: f32| [(x * scale) as u32, (10.0 * scale) as u32];
            assert_eq!(pixel(svg, scale, at(5.0)), [0xfe, 0x82, 0x03]);
            assert_eq!(pixel(svg, scale, at(15.0)), [255, 255, 255]);
            assert_eq!(pixel(svg, scale, at(30.0)), [0, 0, 255]);
        }
    }

    #[test]
    fn what_is_not_painted_is_refused() {
        let gradient = r##"<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><linearGradient id="g"><stop offset="0"/><stop offset="1" stop-color="#fff"/></linearGradient><rect width="9" height="9" fill="url(#g)"/></svg>"##;
        assert!(Pictures::new().painted(gradient, 1.0).is_err());
        assert!(Pictures::new().painted("<p>", 1.0).is_err());
    }
}
