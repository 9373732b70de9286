"""Reports: results turned into what people and scripts read."""
