"""Which fix worked: runs summarised, brought to common conditions, compared, and said."""
