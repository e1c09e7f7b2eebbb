//! bench
