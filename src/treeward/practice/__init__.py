"""Reading phrases aloud, to learn how well this voice and microphone are heard."""
