"""At the bench"""
