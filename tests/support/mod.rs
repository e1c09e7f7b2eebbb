//! What several test files share. Each file uses the part it needs.

pub mod notices;
