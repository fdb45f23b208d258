"""Folios"""
