//! Orders, batches and runs are many to many: one digest block and one furnace run for two customers.

mod documents;
mod two_orders;
