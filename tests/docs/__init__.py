"""Makes the documentation: references from models, pictures from code, examples that run."""
