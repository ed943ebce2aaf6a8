use super::{Tone, Voice};

/// Says nothing: for checking recordings and for tests.
#[derive(Debug, Clone, Copy, Default)]
pub struct Silent;

impl Voice for Silent {
    fn say(&mut self, _tone: Tone, _text: &str) -> anyhow::Result<()> {
        Ok(())
    }

    fn speaking(&self) -> bool {
        false
    }
}
