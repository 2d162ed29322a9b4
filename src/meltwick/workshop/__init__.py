"""A collection in a maker's days: steps, the calendar, and the forms in which it is kept."""
