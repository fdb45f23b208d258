"""Keys of shops: signing, statements about keys, their files, backups."""
