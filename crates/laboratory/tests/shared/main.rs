//! Orders, batches and runs are many to many: one digest block and one furnace run for two customers.

#![allow(clippy::unwrap_used, reason = "what a test rests on may end it")]

mod documents;
mod order_list;
mod two_orders;
