"""What a check found: findings, results, the report; and the words every part uses."""
