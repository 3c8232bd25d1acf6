"""The report of an audit: one page with figures, and the same counts as FHIR MeasureReports."""
