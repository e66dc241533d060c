"""What a show has shown, counted, judged and kept."""
