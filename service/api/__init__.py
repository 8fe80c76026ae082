"""The HTTP edge: schemas, routes, problems, guards, cells and documents."""
