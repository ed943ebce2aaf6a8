use super::{Saying, Voice};

/// Says nothing: for checking recordings and for tests.
#[derive(Debug, Clone, Copy, Default)]
pub struct Silent;

impl Voice for Silent {
    fn put(&mut self, _line: Saying<'_>) -> anyhow::Result<()> {
        Ok(())
    }

    fn speaking(&self) -> bool {
        false
    }
}
