"""The loose coin: demand, ride, fall, friction."""
