"""The hoist line: the shortest cycle in which hoists carry racks through a row of tanks."""
