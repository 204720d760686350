"""What every address of the interface for other programs shares: keys, roles, shapes, pages, answers that stand."""
