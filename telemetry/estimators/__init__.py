"""What happened: phases, contacts, switches, motors, supply, pieces and cycles, each a pure function."""
