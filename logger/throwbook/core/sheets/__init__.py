"""Test sheets: plan, questions, throws by hand, which throws make a baseline, when a sheet may be accepted."""
