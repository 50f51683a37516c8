"""Arrays become numbers: histograms, clipping, areas and the aim. A `Frame` enters, a `Reading` leaves."""
