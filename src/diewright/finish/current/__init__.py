"""Current and potential in an electrolyte in three dimensions. Knows no job: arrays in, arrays out. Lengths mm, currents A, potentials V."""
