"""Part types of the era as data, one YAML file a family, every row naming its source. No code."""
