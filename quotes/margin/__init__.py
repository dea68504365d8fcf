"""Cost entries, the weekly close and the review: what jobs did cost, and what they will still leave."""
