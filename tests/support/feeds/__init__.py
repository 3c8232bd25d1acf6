"""What a feed can add to a visit, and the visits to which it is added: for the danger laws."""
