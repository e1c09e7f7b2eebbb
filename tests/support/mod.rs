//! What several test files share. Each file uses the part it needs.

pub mod desk;
pub mod follower;
pub mod home;
pub mod http;
pub mod notices;
pub mod service;
pub mod wire;
