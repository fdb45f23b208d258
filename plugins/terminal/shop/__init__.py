"""Notes and shops"""
