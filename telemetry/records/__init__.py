"""The frozen records that an Analysis is made of, by subject."""
