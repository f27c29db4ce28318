"""What several tests are made from: studies, scenes, chunks, results."""
