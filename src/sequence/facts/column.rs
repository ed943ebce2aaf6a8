/// A column of the schedule's circuit table: which results stand in it, and under which heading.
/// Procedures own them; a cell shows the worst of its readings, else what was said.
#[derive(Debug, PartialEq, Eq)]
pub struct Column {
    /// Its name in JSON.
    pub key: &'static str,
    /// Its name in CSV.
    pub csv: &'static str,
    /// The heading over it and its neighbours.
    pub group: &'static str,
    /// Its own heading; empty when the group's is enough.
    pub head: &'static str,
    /// Which of several readings it shows.
    pub worst: Worst,
    /// When it is shown on a page.
    pub shown: ShownWhen,
    /// What else stands beside it.
    pub beside: Beside,
}

/// What stands beside a column of results.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Beside {
    /// Nothing.
    Nothing,
    /// The test voltage, before it.
    TestVoltage,
    /// The largest Zs, after it.
    LargestZs,
}

/// Which of several readings a cell shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Worst {
    /// The lowest.
    Lowest,
    /// The highest.
    Highest,
}

/// When a column is shown on a page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ShownWhen {
    /// Always: a schedule without it would be odd.
    Always,
    /// When a circuit of the board has such a test.
    Planned,
    /// When such a test was done: it is only made instead of others.
    Done,
}
