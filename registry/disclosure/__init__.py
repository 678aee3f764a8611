"""What may leave, and in which form: profiles for rows, hidden cells for tables of counts."""
