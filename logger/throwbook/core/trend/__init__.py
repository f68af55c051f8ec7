"""Years of checks: made comparable, watched for a rise, forecast, and what to do next."""
