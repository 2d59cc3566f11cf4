"""What comes of a call: how it ends, and after it visit, money, swap, closing and opening again, as pages."""
