"""A reviewed made-up fleet against its truth. Kept apart: nothing that makes a review may import this room."""
