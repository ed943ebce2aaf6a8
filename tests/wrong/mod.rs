//! What the audits found wrong, line by line, in words as a person says them. A test names its line
//! of the list, or the finding of the audit, and one file holds one area.

mod limits;
