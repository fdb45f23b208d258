"""Which chip is this, from its marking? Which pins do that?"""
