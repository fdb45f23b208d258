"""Draft chip files from tables and data sheets."""
