//! melt
