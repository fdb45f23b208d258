"""A video signal measured as a waveform monitor and a vectorscope do, with uncertainties."""
