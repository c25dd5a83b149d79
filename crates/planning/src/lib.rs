//! From a customer's question to the run order: which technique, by which method, with which standards, in which order; and
//! which rows to measure again because of a flag.
//!
//! Suggested reading order:
//! * [`demand`]: what a limit demands of a method.
//! * [`choice`]: can we? The techniques ranked for an element at a limit.
//! * [`method_draft`]: a complete method document from the handbook, every figure with its origin.
//! * [`run_order`]: the rows of one or several elements, in the least time, then with the least at risk.
//! * [`cups`]: which solution stands where on the tray.
//! * [`day`]: all of it together, for an order, its methods and a bench.
//! * [`startup`]: the cautions that apply, and what work is refused for.
//! * [`leg`]: taken-up steps become a new leg of the run order.

pub mod demand;

pub mod choice;

pub mod method_draft;

pub mod run_order;

pub mod cups;

pub mod day;

pub mod startup;

pub mod leg;
