"""What would this pin show with the meter, probe and oscilloscope in my hand?"""
