"""Small pieces of our own pictures, as SVG."""
