//! What people read when a file is not as it should be, and the folders that are.

mod folders;
