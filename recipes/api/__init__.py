"""What other programs read of boards, cards, recipes and coffees."""
