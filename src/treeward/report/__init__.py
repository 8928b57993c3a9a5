"""Tables, pictures, the HTML report and map files."""
