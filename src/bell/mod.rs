//! bell
