"""The counter page: the program and its book in a browser, for phones and laptops."""
