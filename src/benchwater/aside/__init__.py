"""Work done in a second process, where a processor is to spare; elsewhere the same work is done here."""
