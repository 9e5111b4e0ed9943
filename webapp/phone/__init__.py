"""What a phone needs: the app itself with everything it runs offline, and the API for pairing, entries and photos."""
