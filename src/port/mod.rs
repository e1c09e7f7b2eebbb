//! port
