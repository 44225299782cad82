"""The physics as algebra, one short file a topic.

Files in reading order: letters, switching, stress, real_parts, field, energy.
"""
