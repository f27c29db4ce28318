"""Speed and accuracy, printed from one run: `python -m tests.benchmarks`. pytest does not collect
it."""
