"""What staff practise: questions made from a catalogue, when they come back, and how far one is."""
