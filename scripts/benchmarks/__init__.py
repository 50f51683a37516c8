"""The parts of scripts/bench.py. Each measures one subject and returns rows; nothing is kept between them."""
