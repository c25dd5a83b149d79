//! The test report as PDF/A with its record attached, and figures as SVG for pages and paper.
