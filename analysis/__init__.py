"""Retrospective audit of syringe-driver observation logs."""
