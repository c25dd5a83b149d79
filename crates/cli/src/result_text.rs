//! Results as text for a table.

pub use darkline_report::printed::significant;
pub use darkline_report::result_words::{cells, degrees_of_freedom, statement};
