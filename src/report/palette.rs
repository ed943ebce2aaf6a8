//! The colours of every page, and that they can be read; and its tables.

/// Colours, as variables of a style sheet.
pub(crate) const PALETTE: &str = include_str!("palette.css");

/// Tables, to stand after the style of a page.
pub(crate) const TABLES: &str = include_str!("table.css");

#[cfg(test)]
mod tests {
    use super::PALETTE;
    use std::collections::BTreeMap;

    /// Relative luminance and contrast as WCAG 2.2 defines them.
    fn luminance(colour: &str) -> f64 {
        let part = |from: usize| {
            let part = u8::from_str_radix(&colour[from..from + 2], 16).unwrap();
            let part = f64::from(part) / 255.0;
            if part <= 0.040_45 {
                part / 12.92
            } else {
                ((part + 0.055) / 1.055).powf(2.4)
            }
        };
        0.2126 * part(1) + 0.7152 * part(3) + 0.0722 * part(5)
    }

    fn contrast(one: &str, other: &str) -> f64 {
        let (one, other) = (luminance(one), luminance(other));
        (one.max(other) + 0.05) / (one.min(other) + 0.05)
    }

    fn palettes() -> Vec<BTreeMap<String, String>> {
        let one = |text: &str| {
            text.split(';')
                .filter_map(|part| {
                    let (name, colour) = part.rsplit_once("--")?.1.split_once(": ")?;
                    colour
                        .starts_with('#')
                        .then(|| (name.to_owned(), colour.trim().to_owned()))
                })
                .collect()
        };
        let (light, dark) = PALETTE.split_once("prefers-color-scheme: dark").unwrap();
        vec![one(light), one(dark)]
    }

    #[test]
    fn contrast_is_computed_as_the_standard_does() {
        assert!((contrast("#000000", "#ffffff") - 21.0).abs() < 1e-9);
        // The grey that is known to be just enough on white.
        assert!((contrast("#767676", "#ffffff") - 4.54).abs() < 0.01);
    }

    #[test]
    fn letters_can_be_read_on_light_and_on_dark() {
        let palettes = palettes();
        assert_eq!(palettes[0].len(), 11);
        assert!(palettes[0].keys().eq(palettes[1].keys()));
        for colours in &palettes {
            for letters in ["ink", "quiet", "within", "outside", "unsettled", "water"] {
                for under in ["paper", "tint", "field"] {
                    let found = contrast(&colours[letters], &colours[under]);
                    assert!(found >= 4.5, "{letters} on {under}: {found:.2}");
                }
            }
            // A button has letters in the colour of paper.
            assert!(contrast(&colours["paper"], &colours["water"]) >= 4.5);
        }
        assert!(luminance(&palettes[0]["paper"]) > 0.9);
        assert!(luminance(&palettes[1]["paper"]) < 0.02);
    }
}
