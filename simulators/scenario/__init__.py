"""What a scenario file may say: models that refuse what they do not know. No physics."""
