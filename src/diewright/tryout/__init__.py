"""The virtual tryout: the run of the tools over the sheet, and what it says."""
