"""The command line: questions in, answers as text or as JSON out."""
