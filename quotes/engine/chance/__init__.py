"""What is only likely: quantiles, contingency, the day that is kept. Worked out in floats; money leaves as `Decimal`."""
