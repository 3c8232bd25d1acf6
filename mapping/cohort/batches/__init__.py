"""An audit as functions from one Arrow RecordBatch to another, for whatever runs such functions."""
