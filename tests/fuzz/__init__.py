"""Study files of every kind of nonsense, pushed through what the commands check and run do."""
