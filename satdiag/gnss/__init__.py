"""NMEA 0183 sentences of GNSS receivers, read with what real receivers send in mind."""
