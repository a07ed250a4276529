"""The working faces: punch, die and blankholder, made from the part or given."""
