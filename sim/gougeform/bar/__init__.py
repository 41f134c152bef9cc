"""The bar's cross-section: its outline, its flute, and the lips where they meet."""
