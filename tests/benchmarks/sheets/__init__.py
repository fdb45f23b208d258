"""A judge of drafting: pin tables with invented parts, printed as data books print them."""
