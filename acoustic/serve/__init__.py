"""The counter page: phones and laptops of the workshop use the program and its book in a browser."""
