"""Pictures of measures and their course."""
