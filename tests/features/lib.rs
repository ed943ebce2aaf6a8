//! Empty: see `Cargo.toml` beside this file.
