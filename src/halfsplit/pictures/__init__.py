"""Pictures drawn from the file and the readings: SVG as text, without storing or printing."""
