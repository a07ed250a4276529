"""Cut lines: where each lies on the drawn sheet, its direction, angle and place on the flat blank."""
