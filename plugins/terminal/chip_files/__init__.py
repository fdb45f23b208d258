"""Chip files"""
