"""What a check found: findings, results, the report; and words that every part uses."""
