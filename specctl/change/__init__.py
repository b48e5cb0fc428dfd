"""What changes, and what that asks of whom. Decides neither wording nor colour."""
