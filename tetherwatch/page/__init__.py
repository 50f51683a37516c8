"""Self-contained web pages: text, plots and pictures in, one HTML file out that loads nothing."""
