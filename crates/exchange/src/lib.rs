//! Files in and out: documents, reading tables, pulses, the archive of a data package; errors with file, line and column.
